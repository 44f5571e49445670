"""What is shipped?"""
