"""The build sheet: what to cut, buy, drill, wire and check, on paper at full size."""
