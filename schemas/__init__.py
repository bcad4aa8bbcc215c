"""The one declaration of every table, code list and rule."""
