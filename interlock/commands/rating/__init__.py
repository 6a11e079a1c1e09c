"""Rating: arithmetic of ISO 13849-1 and IEC 62061 on claimed figures."""
