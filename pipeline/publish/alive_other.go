//go:build !unix

package publish

import "os"

// processAlive says whether a process of this machine still runs. Where a
// process cannot be found without opening it, finding it is the answer.
func processAlive(pid int) bool {
	p, err := os.FindProcess(pid)
	if err != nil {
		return false
	}
	_ = p.Release()
	return true
}
