package parallel

import (
	"sync/atomic"
	"testing"
)

func TestEveryItemOnce(t *testing.T) {
	for _, workers := range []int{0, 1, 3, 100} {
		done := make([]atomic.Int32, 50)
		var made atomic.Int32
		Each(len(done), workers, func() func(int) {
			made.Add(1)
			return func(i int) { done[i].Add(1) }
		})
		for i := range done {
			if n := done[i].Load(); n != 1 {
				t.Errorf("%d workers did item %d %d times", workers, i, n)
			}
		}
		if n := made.Load(); workers > 0 && int(n) != min(workers, len(done)) {
			t.Errorf("%d workers were made, want %d", n, min(workers, len(done)))
		}
	}
	Each(0, 2, func() func(int) { t.Error("a worker without work"); return func(int) {} })
}

func TestAPanicReachesTheCaller(t *testing.T) {
	defer func() {
		if cause := recover(); cause != "item 3" {
			t.Errorf("recovered %v, want the panic of item 3", cause)
		}
	}()
	Each(10, 2, func() func(int) {
		return func(i int) {
			if i == 3 {
				panic("item 3")
			}
		}
	})
	t.Error("the panic was lost")
}
