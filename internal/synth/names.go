package synth

// name is an invented name for a town, of parts that fit no place.
func name(seed uint64) string {
	d := roll(seed, phaseTown, 1)
	first := []string{"Zinder", "Umber", "Quill", "Tarn", "Ostler", "Fennel", "Pebble", "Larder"}
	second := []string{"wick Bottom", "ford Parva", "mere Regis", "stead Green", "ley Magna"}
	return first[d.IntN(len(first))] + second[d.IntN(len(second))]
}
