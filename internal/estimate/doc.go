// Package estimate is the numerical kernel of the least-squares adjustment:
// sparse symmetric systems, robust weights, variance components and decisions
// under uncertainty.
//
// A system A x = b with A symmetric and positive definite goes
//
//	Builder --Factor--> Factor --> Solve, Sample, LogDet, SelectedInverse
//
// where the factor is P A P' = L D L' with a fill-reducing order P. Every
// result depends on the set of entries added alone: not on the order in which
// they were added, not on the number of cores.
//
// A system whose values change and whose entries stay in their places goes
//
//	Pattern --Analyse--> Factor, then again and again: Clear, Add, Eliminate
//
// where entries are summed as they come: the caller keeps the order.
package estimate
