"""Question `lesson`: how do I teach a class what a meter does?"""
