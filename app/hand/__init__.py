"""What is drawn and measured on the tiles by hand: tools, their traces over the pictures, what they read."""
