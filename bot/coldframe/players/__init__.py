"""A team that acts in the room by itself: in the demo, and beside somebody who rehearses alone."""
