"""What do measured spacings say, beside the prediction?"""
