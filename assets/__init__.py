"""What the program ships beside its code: icon, style sheet, templates, part profiles."""
