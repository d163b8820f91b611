"""Small invented panels to try Wetline on, and the generator that made them."""
