"""The board as a web page on this computer or, paired, on the shop network."""
