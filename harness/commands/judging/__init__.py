"""What `check` says beside its verdict."""
