"""Triangle meshes: scan files, health, rays and height fields."""
