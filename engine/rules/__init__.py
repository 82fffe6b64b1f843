"""kb/rules compiled to experta, run in stages, with a trace."""
