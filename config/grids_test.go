package config

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
)

// flatGrid is an NTv2 file of four nodes that shift by one second of arc, as the
// format's description lays it out: NTv2 Developer's Guide, appendix C (the
// layout recalled, not read).
func flatGrid() string {
	var b bytes.Buffer
	record := func(key string, value any) {
		fmt.Fprintf(&b, "%-8s", key)
		switch v := value.(type) {
		case int:
			_ = binary.Write(&b, binary.LittleEndian, [2]int32{int32(v)})
		case float64:
			_ = binary.Write(&b, binary.LittleEndian, v)
		case string:
			fmt.Fprintf(&b, "%-8s", v)
		}
	}
	record("NUM_OREC", 11)
	record("NUM_SREC", 11)
	record("NUM_FILE", 1)
	record("GS_TYPE", "SECONDS")
	record("VERSION", "NTv2.0")
	record("SYSTEM_F", "NAD27")
	record("SYSTEM_T", "NAD83")
	for _, axis := range []string{"MAJOR_F", "MINOR_F", "MAJOR_T", "MINOR_T"} {
		record(axis, 6378137.0)
	}
	record("SUB_NAME", "FLAT")
	record("PARENT", "NONE")
	record("CREATED", "20260101")
	record("UPDATED", "20260101")
	record("S_LAT", 39*3600.)
	record("N_LAT", 40*3600.)
	record("E_LONG", 98*3600.)
	record("W_LONG", 99*3600.)
	record("LAT_INC", 3600.)
	record("LONG_INC", 3600.)
	record("GS_COUNT", 4)
	for range 4 {
		_ = binary.Write(&b, binary.LittleEndian, [4]float32{1, 1, 0, 0})
	}
	record("END", 0)
	return b.String()
}

func TestGrids(t *testing.T) {
	files := map[string]string{
		"map.geojson": "{}", "field.csv": fieldHeader, "shift.gsb": flatGrid(), "broken.gsb": "NUM_OREC",
		"good.yaml":   minimal + "grids: [{path: shift.gsb, from: EPSG:4267, to: EPSG:4269}]\n",
		"broken.yaml": minimal + "grids: [{path: broken.gsb}, {path: none.gsb}, {path: ., from: nowhere}, {file: shift.gsb}]\n",
	}
	dir := writeFiles(t, files)
	c, err := Load(filepath.Join(dir, "good.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	grids := c.job.Read.Grids
	if len(grids) != 1 || grids[0].Name() != "shift.gsb" || grids[0].Bytes != int64(len(files["shift.gsb"])) || len(grids[0].SHA256) != 64 {
		t.Errorf("grids are %+v", grids)
	}

	_, err = Load(filepath.Join(dir, "broken.yaml"))
	for _, want := range []string{
		"broken.yaml:4: broken.gsb cannot be used: ",
		"broken.yaml:4: none.gsb: no such file: ",
		"broken.yaml:4: . is not a file: ",
		"broken.yaml:4: grids.from cannot be used: ",
		"broken.yaml:4: grids has no path: ",
		"broken.yaml:4: unknown key grids.file: ",
	} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v\nlacks %q", err, want)
		}
	}
}
