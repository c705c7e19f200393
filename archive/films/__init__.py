"""Time line, frames and encoder of rotation films."""
