"""What does each single step of each setting do?"""
