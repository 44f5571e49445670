"""Question `animate`: what happens in a meter, as a moving picture in slow motion."""
