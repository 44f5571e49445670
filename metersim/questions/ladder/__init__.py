"""Question `ladder`: what does each single step of each setting do?"""
