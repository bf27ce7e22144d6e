"""Files for those who go to the sites: waypoints, and the form that they bring back."""
