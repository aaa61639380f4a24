"""What a person does at the bench: records, texts, checks, plain sentences."""
