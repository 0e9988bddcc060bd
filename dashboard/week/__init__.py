"""What happened in a week? The same digest as the printed one."""
