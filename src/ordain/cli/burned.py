"""`ordain burned`: what is in the sockets, and the record of what was put there."""
