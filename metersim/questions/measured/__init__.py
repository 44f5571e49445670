"""Question `measured`: how do measured spacings compare with the prediction?"""
