package match

// ordinary are the options of a job that says nothing of its own. The external
// tests of the package set them from the config, which knows them.
var ordinary Options

// SetOrdinary is theirs to call.
func SetOrdinary(o Options) { ordinary = o }

func withWorkers(n int) Options {
	o := ordinary
	o.Workers = n
	return o
}
