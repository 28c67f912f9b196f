"""Views: pages, pictures and the API. They read; what they change goes through a port."""
