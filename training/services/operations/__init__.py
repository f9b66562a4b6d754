"""What an operator needs: backup, checks, rights, figures, and the demo school."""
