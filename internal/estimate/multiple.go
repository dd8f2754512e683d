package estimate

import (
	"cmp"
	"slices"
)

// AdjustedP are the p-values adjusted for being many by Benjamini & Hochberg
// (1995, J. R. Stat. Soc. B 57(1)): rejecting those at or below q keeps the
// expected share of false rejections at or below q, for independent or
// positively dependent tests. The order is that of p.
func AdjustedP(p []float64) []float64 {
	rank := ints(len(p))
	slices.SortStableFunc(rank, func(a, b int) int { return cmp.Compare(p[a], p[b]) })
	adjusted, least := make([]float64, len(p)), 1.0
	for k := len(p) - 1; k >= 0; k-- {
		least = min(least, p[rank[k]]*float64(len(p))/float64(k+1))
		adjusted[rank[k]] = least
	}
	return adjusted
}
