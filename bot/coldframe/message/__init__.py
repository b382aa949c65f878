"""The neutral message: text, fields, buttons, forms and pictures as values that every platform can show."""
