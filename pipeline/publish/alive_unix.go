//go:build unix

package publish

import (
	"errors"
	"syscall"
)

// processAlive says whether a process of this machine still runs; signal 0
// only asks.
func processAlive(pid int) bool {
	err := syscall.Kill(pid, 0)
	return err == nil || errors.Is(err, syscall.EPERM)
}
