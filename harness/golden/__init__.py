"""The record of a prediction, its writer and its reader."""
