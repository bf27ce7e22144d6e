"""Other ways to lift the water, held against the chosen solar sets on equal terms."""
