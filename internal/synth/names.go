package synth

import "fmt"

// name is an invented name for a town. The parts are made up so that they fit
// no place in particular.
func name(seed uint64) string {
	d := roll(seed, phaseTown, 1)
	first := []string{"Over", "Nether", "Quill", "Tarn", "Bram", "Fennel", "Ostler", "Pebble"}
	second := []string{"wick Bottom", "ford Parva", "mere Regis", "stead Green", "ley Magna"}
	return fmt.Sprintf("%s%s", first[d.IntN(len(first))], second[d.IntN(len(second))])
}
