"""What do habits of operators reach?"""
