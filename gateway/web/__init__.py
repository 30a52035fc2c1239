"""The page: what the gateway shows and takes over HTTP. It knows the core and the ports, never an edge."""
