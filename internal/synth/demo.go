package synth

// The demo town: an ordinary one, chosen because it has some of everything: a
// sheet with a recognisable blunder, a crew-day on a wrong base, control checks,
// marks, test holes, valves.
const (
	demoSeed       = 210
	demoDifficulty = "hard"
)

// Demo writes the demo town into a folder: records in State Plane feet, readings
// in latitude and longitude. It returns the path of the config.
func Demo(dir string) (config string, err error) {
	p, err := Preset(demoDifficulty)
	if err != nil {
		return "", err
	}
	return demo(p).Write(dir, WriteOptions{Marks: true, Exposures: true, Fittings: true, Limits: true})
}

// demo walks a little less than usual, so that a run takes seconds.
func demo(p Params) *Town {
	p.Crews.Coverage = 0.45
	return build(demoSeed, p, Frames[0], layLines(demoSeed, p.Network))
}
