"""Files that ship with rillbook; in the installed package this folder is called rillbook_data."""
