"""Programs as text: header, numbers, writer."""
