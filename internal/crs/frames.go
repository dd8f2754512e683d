package crs

// nullOperation leaves coordinates as they are between two frames that are
// close but not the same. Each says how far apart they are, and why they are
// taken as one nevertheless: nothing else is ever taken as one.
type nullOperation struct {
	from, to  string // EPSG names of geographic systems
	accuracyM float64
	source    string // EPSG code of the operation, or the reason
	why       string
}

// aligned are frames that share X, Y and Z with another, not longitudes and
// latitudes: between ellipsoids that matters by a tenth of a millimetre.
const aligned = "aligned to that ITRF"

// nullOperations is the whole list; of ways that are equally good the one
// nearer to the top is taken. Accuracies are EPSG's where a code stands;
// for NAD83 and WGS 84 EPSG:1188 says 4 m for the whole of North America, of
// which the conterminous USA sees 1 to 2 m.
var nullOperations = []nullOperation{
	// NAD83 and its later realisations
	{"NAD83", "NAD83(HARN)", 1, "common practice, no source", "first state-wide satellite adjustments moved points by 0.2 to 1 m"},
	{"NAD83", "NAD83(2011)", 1, "EPSG:8971", "the adjustments since 1986 moved points by 0.2 to 1 m"},
	{"NAD83", "NAD83(NSRS2007)", 1, "common practice, no source", "the adjustments since 1986 moved points by 0.2 to 1 m"},
	{"NAD83", "NAD83(CORS96)", 1, "common practice, no source", "the adjustments since 1986 moved points by 0.2 to 1 m"},
	{"NAD83", "NAD83(CSRS)", 2, "EPSG:1950", "the adjustments since 1986 moved points by up to 2 m in Canada"},
	{"NAD83(HARN)", "NAD83(NSRS2007)", 0.1, "EPSG:4461", "re-adjustments of one frame, mostly under 0.1 m"},
	{"NAD83(HARN)", "NAD83(2011)", 0.15, "common practice, no source", "re-adjustments of one frame, mostly under 0.1 m"},
	{"NAD83(CORS96)", "NAD83(NSRS2007)", 0.05, "common practice, no source", "the same frame, re-adjusted by centimetres"},
	{"NAD83(CORS96)", "NAD83(2011)", 0.05, "common practice, no source", "the same frame, re-adjusted by centimetres"},
	{"NAD83(NSRS2007)", "NAD83(2011)", 0.05, "common practice, no source", "the same frame, re-adjusted by centimetres"},
	{"NAD83(CSRS)v2", "NAD83(CORS96)", 0, "EPSG:9126", "one frame by definition"},
	{"NAD83(CSRS)v3", "NAD83(CORS96)", 0, "EPSG:9127", "one frame by definition"},
	{"NAD83(CSRS)v4", "NAD83(CORS96)", 0, "EPSG:9128", "one frame by definition"},
	{"NAD83(CSRS)v6", "NAD83(2011)", 0, "EPSG:9129", "one frame by definition"},
	{"NAD83(CSRS)", "NAD83(CSRS)v2", 0.3, "ensemble", "NAD83(CSRS) names all its versions; they drift apart by centimetres a decade"},
	{"NAD83(CSRS)", "NAD83(CSRS)v3", 0.3, "ensemble", "NAD83(CSRS) names all its versions; they drift apart by centimetres a decade"},
	{"NAD83(CSRS)", "NAD83(CSRS)v4", 0.3, "ensemble", "NAD83(CSRS) names all its versions; they drift apart by centimetres a decade"},
	{"NAD83(CSRS)", "NAD83(CSRS)v6", 0.3, "ensemble", "NAD83(CSRS) names all its versions; they drift apart by centimetres a decade"},
	{"NAD83(CSRS)", "NAD83(CSRS)v7", 0.3, "ensemble", "NAD83(CSRS) names all its versions; they drift apart by centimetres a decade"},

	// NAD83 and WGS 84: a metre or two apart, and "WGS 84" does not say which
	// of its realisations is meant
	{"NAD83", "WGS 84", 2, "EPSG:1188", "the frames are 1 to 2 m apart in the conterminous USA"},
	{"NAD83(HARN)", "WGS 84", 2, "EPSG:1580", "the frames are 1 to 2 m apart"},
	{"NAD83(NSRS2007)", "WGS 84", 2, "EPSG:15931", "the frames are 1 to 2 m apart"},
	{"NAD83(CORS96)", "WGS 84", 2, "common practice, no source", "the frames are 1 to 2 m apart"},
	{"NAD83(2011)", "WGS 84", 2, "EPSG:9774", "the frames are 1 to 2 m apart"},
	{"NAD83(CSRS)", "WGS 84", 2, "EPSG:1842", "the frames are 1 to 2 m apart"},
	{"NAD83(PA11)", "WGS 84", 3, "common practice, no source", "the frames are 2 to 3 m apart in the Pacific"},
	{"NAD83(MA11)", "WGS 84", 3, "common practice, no source", "the frames are 2 to 3 m apart in the Marianas"},

	// WGS 84 names all its realisations
	{"WGS 84", "WGS 84 (Transit)", 2, "ensemble", "WGS 84 names all its realisations; the first lies up to 2 m off"},
	{"WGS 84", "WGS 84 (G730)", 2, "ensemble", "WGS 84 names all its realisations"},
	{"WGS 84", "WGS 84 (G873)", 2, "ensemble", "WGS 84 names all its realisations"},
	{"WGS 84", "WGS 84 (G1150)", 2, "ensemble", "WGS 84 names all its realisations"},
	{"WGS 84", "WGS 84 (G1674)", 2, "ensemble", "WGS 84 names all its realisations"},
	{"WGS 84", "WGS 84 (G1762)", 2, "ensemble", "WGS 84 names all its realisations"},
	{"WGS 84", "WGS 84 (G2139)", 2, "ensemble", "WGS 84 names all its realisations"},
	{"WGS 84 (G730)", "ITRF92", 0.2, "EPSG:7672", aligned},
	{"WGS 84 (G873)", "ITRF94", 0.1, "EPSG:9076", aligned},
	{"WGS 84 (G1150)", "ITRF2000", 0.02, "EPSG:7670", aligned},
	{"WGS 84 (G1674)", "ITRF2008", 0.01, "EPSG:7669", aligned},
	{"WGS 84 (G1762)", "ITRF2008", 0.01, "EPSG:7666", aligned},
	{"WGS 84 (G2139)", "ITRF2014", 0.01, "EPSG:9757", aligned},

	// the service frames of the ITRF
	{"IGS97", "ITRF97", 0.01, "EPSG:9028", "the same frame for users"},
	{"IGS00", "ITRF2000", 0.01, "EPSG:9029", "the same frame for users"},
	{"IGS05", "ITRF2005", 0.01, "EPSG:9030", "the same frame for users"},
	{"IGS08", "ITRF2008", 0.01, "EPSG:9031", "the same frame for users"},
	{"IGS14", "ITRF2014", 0.01, "EPSG:9032", "the same frame for users"},
	{"IGb14", "IGS14", 0.01, "common practice, no source", "the same frame for users"},

	// Europe: ETRS89 names all its realisations
	{"ETRS89", "WGS 84", 1, "EPSG:1149", "Europe has drifted by over 0.8 m since 1989"},
	{"ETRS89", "ETRF2014", 0.1, "ensemble", "ETRS89 names all its realisations"},
	{"ETRS89", "ETRF2005", 0.1, "ensemble", "ETRS89 names all its realisations"},
	{"ETRS89", "ETRF2000", 0.1, "ensemble", "ETRS89 names all its realisations"},
	{"ETRS89", "ETRF89", 0.1, "ensemble", "ETRS89 names all its realisations"},
	{"RGF93 v1", "ETRS89", 0.1, "EPSG:1591", "the French realisation of ETRS89"},
	{"RGF93 v1", "RGF93 v2", 0.05, "EPSG:9882", "a re-computation"},
	{"RGF93 v1", "WGS 84", 1, "EPSG:1671", "as ETRS89"},
	{"IRENET95", "ETRS89", 0.1, "EPSG:1678", "the Irish realisation of ETRS89"},
	{"SWEREF99", "ETRS89", 0.1, "EPSG:1788", "the Swedish realisation of ETRS89"},
	{"CHTRS95", "ETRS89", 0.1, "EPSG:1511", "the Swiss realisation of ETRS89"},
	{"NTF (Paris)", "NTF", 0, "EPSG:1763", "one datum, counted from another meridian"},

	// elsewhere
	{"NZGD2000", "WGS 84", 1, "EPSG:1565", "the plates have drifted by about 1 m since 2000"},
	{"GDA94", "WGS 84", 3, "EPSG:1150", "Australia has drifted by about 2 m since 1994"},
	{"GDA2020", "WGS 84", 3, "EPSG:8450", "WGS 84 does not say which realisation"},
	{"SIRGAS 2000", "WGS 84", 1, "EPSG:15485", "the frames are within 1 m"},
	{"JAD2001", "WGS 84", 1, "EPSG:3444", "the frames are within 1 m"},
}
