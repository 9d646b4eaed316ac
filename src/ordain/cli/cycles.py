"""`ordain cycles`: least and most cycles of every instruction."""
