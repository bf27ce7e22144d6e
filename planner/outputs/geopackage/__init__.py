"""The GeoPackage plan.gpkg: layers and tables that open styled, with readable names, in a desktop GIS."""
