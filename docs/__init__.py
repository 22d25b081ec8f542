"""The documentation site: its settings, and programs that write what must agree with the code."""
