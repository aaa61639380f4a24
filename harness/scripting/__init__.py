"""What programs in Python ask of Forelight: predictions with arrays and pictures, comparisons, coverage, tests."""
