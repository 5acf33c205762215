"""How the instrument is played: notes, marks, bow and left hand, as plain Python."""
