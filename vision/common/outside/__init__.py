"""What comes from outside the program: files of any kind, and the screen it is run on."""
