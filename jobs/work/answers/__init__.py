"""What is answered: the declarations of the document, and what makes them."""
