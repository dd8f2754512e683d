// Package parallel spreads independent work over the cores.
package parallel

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// Each calls the functions that newWorker makes, one a goroutine, for every i
// below n. Workers 0 means one a core. A panic in one of them ends the rest at
// their next item and is raised again in the caller, where it can be recovered.
func Each(n, workers int, newWorker func() func(i int)) {
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	var next atomic.Int64
	var fault atomic.Pointer[any]
	var group sync.WaitGroup
	for range min(workers, n) {
		group.Go(func() {
			defer func() {
				if cause := recover(); cause != nil {
					fault.CompareAndSwap(nil, &cause)
				}
			}()
			do := newWorker()
			for fault.Load() == nil {
				i := int(next.Add(1)) - 1
				if i >= n {
					return
				}
				do(i)
			}
		})
	}
	group.Wait()
	if cause := fault.Load(); cause != nil {
		panic(*cause)
	}
}
