"""Question `habits`: what do habits of operators reach?"""
