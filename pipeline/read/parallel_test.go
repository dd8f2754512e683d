package read

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"testing"
)

// numbered gives n rows, then perhaps an error or a panic.
func numbered(n int, err error, fault any, ended *bool) iter.Seq2[*row, error] {
	return func(yield func(*row, error) bool) {
		defer func() { *ended = true }()
		var r row
		values := []string{""}
		for i := range n {
			values[0] = fmt.Sprint(i + 1)
			r.number, r.values = i+1, values
			if !yield(&r, nil) {
				return
			}
		}
		if fault != nil {
			panic(fault)
		}
		if err != nil {
			yield(nil, err)
		}
	}
}

func TestAheadKeepsRowsAndErrors(t *testing.T) {
	broken := errors.New("broken")
	for _, n := range []int{0, 1, aheadRows - 1, aheadRows, aheadRows + 1, 7*aheadRows + 3} {
		for _, want := range []error{nil, broken} {
			ended := false
			count := 0
			var got error
			for r, err := range ahead(numbered(n, want, nil, &ended)) {
				if err != nil {
					got = err
					continue
				}
				if count++; r.number != count || r.values[0] != fmt.Sprint(count) {
					t.Fatalf("row %d of %d is %+v", count, n, r)
				}
			}
			if count != n || got != want || !ended {
				t.Errorf("%d rows of %d, error %v of %v, ended %v", count, n, got, want, ended)
			}
		}
	}
}

func TestAheadStops(t *testing.T) {
	for _, after := range []int{1, aheadRows, aheadRows + 1} {
		ended := false
		for r := range ahead(numbered(1_000_000, nil, nil, &ended)) {
			if r.number == after {
				break
			}
		}
		if !ended {
			t.Error("the reader still runs when the file is closed")
		}
	}
}

// TestFaultsReachTheCaller: a fault in another goroutine would end the program.
func TestFaultsReachTheCaller(t *testing.T) {
	caught := func(do func()) (fault any) {
		defer func() { fault = recover() }()
		do()
		return nil
	}
	ended := false
	if got := caught(func() {
		for range ahead(numbered(3, nil, "a fault", &ended)) {
		}
	}); got != "a fault" {
		t.Errorf("reading ahead: %v", got)
	}
	if got := caught(func() {
		each(context.Background(), []int{1, 2}, func(int) (int, error) { panic("a fault") })
	}); got != "a fault" {
		t.Errorf("files side by side: %v", got)
	}
}

func TestCancelled(t *testing.T) {
	o := cases["traces-formed"].options(t)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if s, err := Files(ctx, o); !errors.Is(err, context.Canceled) || s != nil {
		t.Error(s, err)
	}
}
