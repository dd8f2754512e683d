package estimate

import (
	"slices"
	"sync"

	"github.com/asfound/asfound/internal/parallel"
)

// What hangs below different steps of the elimination tree knows nothing of each
// other: such branches go on all cores. What all of them have in common, the trunk,
// goes by itself. Where the tree is cut depends on the matrix alone, and so does
// every sum.

// A matrix of fewer than branchLeast unknowns is all trunk; in a larger one no
// branch has more than one in branchShare of them, so that cores get as much each.
const (
	branchLeast = 1 << 14
	branchShare = 32
)

// branchesFirst moves the branches of a post-ordered tree before its trunk. Steps of
// the first level alone are in branches: those below one follow each other.
func branchesFirst(post, parent []int32, level []uint8, order []int32) (sorted, ends []int32) {
	n := len(post)
	if n < branchLeast {
		return post, nil
	}
	most := int32(n / branchShare)
	size := make([]int32, n) // of what hangs below each old step, with itself
	small := func(k int32) bool { return size[k] <= most && level[order[k]] == levelInner }
	for _, k := range post {
		size[k]++
		if up := parent[k]; up >= 0 {
			size[up] += size[k]
		}
	}
	var trunk []int32
	begin := 0
	for _, k := range post {
		if !small(k) {
			trunk = append(trunk, k)
			continue
		}
		sorted = append(sorted, k)
		if up := parent[k]; (up < 0 || !small(up)) && len(sorted)-begin >= int(most)/2 {
			ends = append(ends, int32(len(sorted)))
			begin = len(sorted)
		}
	}
	if begin < len(sorted) {
		ends = append(ends, int32(len(sorted)))
	}
	return append(sorted, trunk...), ends
}

// trunk is the first step of the trunk.
func (f *Factor) trunk() int32 {
	if n := len(f.branches); n > 0 {
		return f.branches[n-1]
	}
	return 0
}

// eachBranch does something to every branch, on all cores.
func (f *Factor) eachBranch(do func(b int, from, to int32)) {
	parallel.Each(len(f.branches), 0, func() func(int) {
		return func(b int) {
			from := int32(0)
			if b > 0 {
				from = f.branches[b-1]
			}
			do(b, from, f.branches[b])
		}
	})
}

// aside is what the branches leave for the trunk, one after the other.
type aside struct{ left []float64 }

var asides = sync.Pool{New: func() any { return &aside{} }}

// forward solves L x = w in place. What a branch leaves for the trunk is put
// aside and taken off branch by branch.
func (f *Factor) forward(w []float64) {
	trunk := int(f.trunk())
	each := f.n - trunk
	a := asides.Get().(*aside)
	defer asides.Put(a)
	a.left = resized(a.left, len(f.branches)*each)
	f.eachBranch(func(b int, from, to int32) {
		left := a.left[b*each : (b+1)*each]
		clear(left)
		for k := int(from); k < int(to); k++ {
			if w[k] == 0 {
				continue
			}
			rows, vals := f.column(k)
			in, _ := slices.BinarySearch(rows, to)
			f.subtract(w, 0, rows[:in], vals[:in], w[k])
			f.subtract(left, int32(trunk), rows[in:], vals[in:], w[k])
		}
	})
	for b := range f.branches {
		for k, v := range a.left[b*each : (b+1)*each] {
			w[trunk+k] += v
		}
	}
	for k := trunk; k < f.inner; k++ {
		if w[k] != 0 {
			rows, vals := f.column(k)
			f.subtract(w, 0, rows, vals, w[k])
		}
	}
}

// backward solves L' x = w in place.
func (f *Factor) backward(w []float64) {
	f.back(w, f.trunk(), int32(f.inner))
	f.eachBranch(func(_ int, from, to int32) { f.back(w, from, to) })
}

// back does so for some steps, those after them being done.
func (f *Factor) back(w []float64, from, to int32) {
	for k := int(to) - 1; k >= int(from); k-- {
		sum := w[k]
		rows, vals := f.column(k)
		if n := len(rows); f.inARow(rows) {
			from := w[rows[0] : int(rows[0])+n]
			for q, v := range vals[:len(from)] {
				sum -= float64(v * from[q])
			}
		} else {
			for q, r := range rows {
				sum -= float64(vals[q] * w[r])
			}
		}
		w[k] = sum
	}
}

// mul sets y = A x, both in the order of elimination: rows of a branch have their
// entries in it.
func (f *Factor) mul(y, x []float64) {
	clear(y)
	f.eachBranch(func(_ int, from, to int32) { f.lower.mulAdd(y, x, int(from), int(to)) })
	f.lower.mulAdd(y, x, int(f.trunk()), f.n)
}
