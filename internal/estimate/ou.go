package estimate

import "math"

// shortestOU is the least length of an Ornstein-Uhlenbeck edge, in correlation
// lengths: a shorter one, down to 0, is taken to be that long. Its precision,
// 1/(2 shortestOU) of 1/sigma^2, still leaves ten digits for the rest of a node.
const shortestOU = 1e-6

// OUEdge is the precision that an edge of a network puts on its two nodes where
// an Ornstein-Uhlenbeck process runs along it (stationary standard deviation
// sigmaM, correlation exp(-|t|/lambdaM)): diag on the diagonal of both nodes, off
// between them, in 1/m^2,
//
//	diag = coth(L/lambda)/(2 sigma^2), off = -csch(L/lambda)/(2 sigma^2).
//
// With OUEnd at both ends of a chain this is the exact inverse of the process's
// covariance, whatever the spacing of the nodes (the conditional form of the
// Gaussian Markov process: Rue & Held 2005, Gaussian Markov Random Fields,
// section 1.2). Where m edges meet it is the Whittle-Matern field of order 1
// on the network (Bolin, Simas & Wallin 2024, Bernoulli 30(2)): positive
// definite with any loops, and of variance 2 sigma^2/m at a junction of long edges.
//
// Edges shorter than 1e-6 lambda are taken as that long: two nodes at one place
// are tied, not divided by zero. Long ones leave their ends independent.
func OUEdge(lengthM, lambdaM, sigmaM float64) (diag, off float64) {
	x := max(lengthM/lambdaM, shortestOU)
	half := 1 / (2 * sigmaM * sigmaM)
	return half / math.Tanh(x), -half / math.Sinh(x)
}

// OUEnd is the precision, 1/m^2, to add to the diagonal of a node at a free or
// cut end, beside its one edge; a node without edges takes it twice.
func OUEnd(sigmaM float64) float64 { return 1 / (2 * sigmaM * sigmaM) }

// OUBridge is the process inside an edge, atM from its first node, given its
// value at both: mean = from*first + to*second, and the variance around it, m^2:
//
//	from = sinh((L-t)/lambda)/sinh(L/lambda), to = sinh(t/lambda)/sinh(L/lambda),
//	variance = 2 sigma^2 sinh(t/lambda) sinh((L-t)/lambda)/sinh(L/lambda).
//
// An infinite lengthM is the free side of an end node: the mean fades to 0.
func OUBridge(atM, lengthM, lambdaM, sigmaM float64) (from, to, variance float64) {
	u := max(atM, 0) / lambdaM
	v := max(lengthM-atM, 0) / lambdaM
	if u+v == 0 {
		return 1, 0, 0
	}
	// sinh(v)/sinh(u+v) = exp(-u) (1-exp(-2v))/(1-exp(-2(u+v))): no overflow.
	whole := math.Expm1(-2 * (u + v))
	eu, ev := math.Expm1(-2*u), math.Expm1(-2*v)
	return math.Exp(-u) * (ev / whole), math.Exp(-v) * (eu / whole), sigmaM * sigmaM * -eu * (ev / whole)
}
