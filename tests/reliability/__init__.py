"""What must hold when processes die, disks fill and servers go away."""
