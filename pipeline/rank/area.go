package rank

import (
	"cmp"
	"slices"
)

// areas part stretches into areas that a crew reaches in a day: cut in two across
// the longer side, at the middle stretch, until no side is longer than reachM.
func areas(all []stretch, reachM float64) [][]int32 {
	members := make([]int32, len(all))
	for i := range members {
		members[i] = int32(i)
	}
	var out [][]int32
	var part func(members []int32)
	part = func(members []int32) {
		low, high := all[members[0]].middle, all[members[0]].middle
		for _, i := range members {
			for axis, x := range all[i].middle {
				low[axis], high[axis] = min(low[axis], x), max(high[axis], x)
			}
		}
		axis := 0
		if high[1]-low[1] > high[0]-low[0] {
			axis = 1
		}
		if len(members) == 1 || !(high[axis]-low[axis] > reachM) {
			slices.Sort(members)
			out = append(out, members)
			return
		}
		slices.SortFunc(members, func(a, b int32) int {
			return cmp.Or(cmp.Compare(all[a].middle[axis], all[b].middle[axis]), cmp.Compare(a, b))
		})
		part(members[:len(members)/2])
		part(members[len(members)/2:])
	}
	if len(members) > 0 {
		part(members)
	}
	return out
}
