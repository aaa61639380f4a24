"""The sources of a design to RTLIL, in processes of their own where they are not trusted."""
