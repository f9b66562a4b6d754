"""What stored records mean."""
