"""What happened in a week? The same report as the printed one."""
