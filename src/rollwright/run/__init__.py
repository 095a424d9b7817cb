"""The run: the air and the track, the losses, and the car going down."""
