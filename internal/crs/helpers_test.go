package crs

import "testing"

func mustParse(t testing.TB, def string) *System {
	t.Helper()
	s, err := Parse(def)
	if err != nil {
		t.Fatal(err)
	}
	return s
}
