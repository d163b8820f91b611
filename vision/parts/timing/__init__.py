"""When a place wetted that lies where no later front tells it."""
