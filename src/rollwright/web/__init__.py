"""The bench in a browser: pages and data over the workbench's use cases, for one bench and its devices."""
