package shapefile_test

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/shapefile"
)

func mains() *shapefile.Layer {
	return &shapefile.Layer{
		Type:   shapefile.PolyLine,
		Fields: []shapefile.Field{{Name: "ID", Type: 'N', Length: 6}, {Name: "MATERIAL", Type: 'C', Length: 12}},
		Rows: []shapefile.Row{
			{Parts: []orb.LineString{{{430000, 5447000}, {430012.5, 5447003}}}, Values: []string{"17", "ductile iron"}},
			{Parts: []orb.LineString{{{430012.5, 5447003}, {430020, 5447001}}}, Values: []string{"18", ""}},
		},
	}
}

func Example() {
	dir, err := os.MkdirTemp("", "")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(dir)
	path := filepath.Join(dir, "mains.shp")
	if err := shapefile.Write(path, mains()); err != nil {
		fmt.Println(err)
		return
	}
	l, err := shapefile.Read(path)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(l.Name, l.Type, l.Encoding)
	for _, r := range l.Rows {
		fmt.Printf("%d %q %v\n", r.Number, r.Values, r.Parts)
	}
	// Output:
	// mains PolyLine UTF-8
	// 1 ["17" "ductile iron"] [[[430000 5.447e+06] [430012.5 5.447003e+06]]]
	// 2 ["18" ""] [[[430012.5 5.447003e+06] [430020 5.447001e+06]]]
}

func ExampleOpenFS() {
	dir, err := os.MkdirTemp("", "")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(dir)
	if err := shapefile.Write(filepath.Join(dir, "mains.shp"), mains()); err != nil {
		fmt.Println(err)
		return
	}
	// A copy that broke off.
	if err := os.Truncate(filepath.Join(dir, "mains.dbf"), 110); err != nil {
		fmt.Println(err)
		return
	}
	_, err = shapefile.OpenFS(os.DirFS(dir), "mains.shp")
	fmt.Println(err)
	// Output:
	// mains.dbf: byte 4: says it has 2 rows of 19 bytes, but only 13 bytes follow the header; the file is cut short or damaged: copy or export it again
}

func ExampleLayers() {
	dir, err := os.MkdirTemp("", "")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(dir)
	if err := shapefile.Write(filepath.Join(dir, "mains.shp"), mains()); err != nil {
		fmt.Println(err)
		return
	}
	layers, err := shapefile.Layers(dir)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, l := range layers {
		r, err := shapefile.Open(l.Path)
		if err != nil {
			fmt.Println(err)
			return
		}
		defer r.Close()
		for row, err := range r.Rows() {
			if err != nil {
				fmt.Println(err)
				return
			}
			fmt.Println(l.Name, row.Number, row.Values[0])
		}
	}
	// Output:
	// mains 1 17
	// mains 2 18
}
