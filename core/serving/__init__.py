"""Running the service: the embedded form's processes, their queue, and what watches over them."""
