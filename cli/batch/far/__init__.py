"""The places behind addresses: object stores, web servers, archives."""
