"""What rig and desk say to each other, contract 1 (DEVELOPERS.md, "The wire")."""
