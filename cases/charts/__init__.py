"""Pictures of the audit as accessible SVG, drawn by matplotlib."""
