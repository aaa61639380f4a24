"""What is wired to a design's lines: terminals, speakers, memories."""
