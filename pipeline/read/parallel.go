package read

import (
	"context"
	"iter"

	"github.com/asfound/asfound/internal/parallel"
)

// each does the same to every item on all cores, and keeps their order. The
// error is that of the first item that has one.
func each[S, T any](ctx context.Context, items []S, do func(S) (T, error)) ([]T, error) {
	out := make([]T, len(items))
	errs := make([]error, len(items))
	parallel.Each(len(items), 0, func() func(int) {
		return func(i int) {
			if errs[i] = ctx.Err(); errs[i] == nil {
				out[i], errs[i] = do(items[i])
			}
		}
	})
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

// aheadRows is how many rows go from one goroutine to the other at a time.
const aheadRows = 512

// batch is rows with values of their own.
type batch struct {
	rows   []row
	values []string
	err    error
	panic  any
}

func (b *batch) add(r *row) {
	at := len(b.values)
	b.values = append(b.values, r.values...)
	b.rows = append(b.rows, *r)
	b.rows[len(b.rows)-1].values = b.values[at:len(b.values):len(b.values)]
}

// ahead reads rows in a goroutine of its own while the rows before them are
// looked at, so that splitting a text and understanding its values take two
// cores. The rows and their order are the same.
func ahead(rows iter.Seq2[*row, error]) iter.Seq2[*row, error] {
	return func(yield func(*row, error) bool) {
		full, empty := make(chan *batch, 2), make(chan *batch, 3)
		stop := make(chan struct{})
		for range cap(empty) {
			empty <- &batch{}
		}
		go func() {
			defer close(full)
			defer func() {
				if p := recover(); p != nil {
					select {
					case full <- &batch{panic: p}:
					case <-stop:
					}
				}
			}()
			fill(rows, full, empty, stop)
		}()
		defer func() { // the file may be closed only when the goroutine has left it
			close(stop)
			for range full {
			}
		}()
		for b := range full {
			if b.panic != nil {
				panic(b.panic) // where the caller can recover it
			}
			for i := range b.rows {
				if !yield(&b.rows[i], nil) {
					return
				}
			}
			if b.err != nil {
				yield(nil, b.err)
				return
			}
			empty <- b
		}
	}
}

// fill puts rows into batches until they end or it is told to stop.
func fill(rows iter.Seq2[*row, error], full chan<- *batch, empty <-chan *batch, stop <-chan struct{}) {
	b := <-empty
	for r, err := range rows {
		if err == nil {
			b.add(r)
		}
		if b.err = err; err == nil && len(b.rows) < aheadRows {
			continue
		}
		select {
		case full <- b:
		case <-stop:
			return
		}
		if err != nil {
			return
		}
		select {
		case b = <-empty:
			b.rows, b.values = b.rows[:0], b.values[:0]
		case <-stop:
			return
		}
	}
	select {
	case full <- b:
	case <-stop:
	}
}
