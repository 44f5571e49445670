"""Question `steps`: what does each single step of each setting do?"""
