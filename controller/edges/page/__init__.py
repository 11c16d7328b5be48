"""The small page on which people see what is wrong and answer."""
