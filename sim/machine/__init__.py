"""LLVM text to machine code that can be called: kept from run to run, and run without LLVM once it is kept."""
