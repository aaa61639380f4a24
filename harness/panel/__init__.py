"""The interactive panel and the lessons."""
