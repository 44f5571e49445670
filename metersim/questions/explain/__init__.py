"""What does a scenario ask of its meter?"""
