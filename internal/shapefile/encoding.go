package shapefile

import (
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/ianaindex"
	"golang.org/x/text/encoding/japanese"
	"golang.org/x/text/encoding/korean"
	"golang.org/x/text/encoding/simplifiedchinese"
	"golang.org/x/text/encoding/traditionalchinese"
	"golang.org/x/text/encoding/unicode"
)

const remedyEncoding = "write the encoding that the text has into the .cpg, for example UTF-8, ISO-8859-1 or 1252"

// codePages are the encodings by their number. 8859-1 is read as its superset
// 1252, as programs that write it mean it (WHATWG Encoding Standard, 4.2).
var codePages = map[int]encoding.Encoding{
	437: charmap.CodePage437, 850: charmap.CodePage850, 852: charmap.CodePage852, 855: charmap.CodePage855,
	858: charmap.CodePage858, 860: charmap.CodePage860, 862: charmap.CodePage862, 863: charmap.CodePage863,
	865: charmap.CodePage865, 866: charmap.CodePage866, 874: charmap.Windows874,
	932: japanese.ShiftJIS, 936: simplifiedchinese.GBK, 949: korean.EUCKR, 950: traditionalchinese.Big5,
	1250: charmap.Windows1250, 1251: charmap.Windows1251, 1252: charmap.Windows1252, 1253: charmap.Windows1253,
	1254: charmap.Windows1254, 1255: charmap.Windows1255, 1256: charmap.Windows1256, 1257: charmap.Windows1257, 1258: charmap.Windows1258,
	10000: charmap.Macintosh, 10007: charmap.MacintoshCyrillic,
	20127: charmap.Windows1252, 20866: charmap.KOI8R, 21866: charmap.KOI8U,
	51932: japanese.EUCJP, 51949: korean.EUCKR, 54936: simplifiedchinese.GB18030, 65001: unicode.UTF8,
}

// partsOf8859 are the parts of ISO 8859 ("88592" in a .cpg is part 2).
var partsOf8859 = map[string]encoding.Encoding{
	"1": charmap.Windows1252, "2": charmap.ISO8859_2, "3": charmap.ISO8859_3, "4": charmap.ISO8859_4,
	"5": charmap.ISO8859_5, "6": charmap.ISO8859_6, "7": charmap.ISO8859_7, "8": charmap.ISO8859_8,
	"9": charmap.ISO8859_9, "10": charmap.ISO8859_10, "13": charmap.ISO8859_13, "14": charmap.ISO8859_14,
	"15": charmap.ISO8859_15, "16": charmap.ISO8859_16,
}

// driverPages are the code pages of the language drivers of dBase and of those
// that the makers of the shapefile format added. 0 and 0x57 name none: 0x57 is
// whatever the writing computer used.
var driverPages = map[byte]int{
	0x01: 437, 0x02: 850, 0x03: 1252, 0x04: 10000, 0x08: 865, 0x09: 437, 0x0A: 850, 0x0B: 437, 0x0D: 437, 0x0E: 850,
	0x0F: 437, 0x10: 850, 0x11: 437, 0x12: 850, 0x13: 932, 0x14: 850, 0x15: 437, 0x16: 850, 0x17: 865, 0x18: 437,
	0x19: 437, 0x1A: 850, 0x1B: 437, 0x1C: 863, 0x1D: 850, 0x1F: 852, 0x22: 852, 0x23: 852, 0x24: 860, 0x25: 850,
	0x26: 866, 0x37: 850, 0x40: 852, 0x4D: 936, 0x4E: 949, 0x4F: 950, 0x50: 874, 0x58: 1252, 0x59: 1252, 0x64: 852,
	0x65: 866, 0x66: 865, 0x67: 861, 0x68: 895, 0x69: 620, 0x6A: 737, 0x6B: 857, 0x6C: 863, 0x78: 950, 0x79: 949,
	0x7A: 936, 0x7B: 932, 0x7C: 874, 0x86: 737, 0x87: 852, 0x88: 857, 0x96: 10007, 0x97: 10029, 0x98: 10006,
	0xC8: 1250, 0xC9: 1251, 0xCA: 1254, 0xCB: 1253, 0xCC: 1257,
}

// charset turns the text of a table into UTF-8.
type charset struct {
	name     string            // as it is declared, or as it is read if it is not
	declared bool              // by .cpg or language driver
	enc      encoding.Encoding // nil: declared, but not known
	decoder  *encoding.Decoder
}

// newCharset finds the encoding by the text of a .cpg, which comes first, or by
// the language driver of the .dbf.
func newCharset(page string, driver byte) *charset {
	c := &charset{name: page, declared: true}
	switch {
	case page != "":
		c.enc = pageByName(page)
	case driver == 0 || driver == 0x57:
		c.declared, c.enc, c.name = false, charmap.Windows1252, "windows-1252"
	default:
		n, ok := driverPages[driver]
		if !ok {
			c.name = fmt.Sprintf("language driver 0x%02X", driver)
			break
		}
		c.name, c.enc = "code page "+strconv.Itoa(n), codePages[n]
	}
	if c.enc != nil {
		if name, err := ianaindex.IANA.Name(c.enc); err == nil && c.declared && page == "" {
			c.name = name
		}
		c.decoder = c.enc.NewDecoder()
	}
	return c
}

// pageByName finds an encoding by what people write into a .cpg: "UTF-8",
// "1252", "CP1252", "ANSI 1252", "OEM 850", "ISO-8859-1", "88591", "LDID/87", or
// any IANA name. nil if it is not known.
func pageByName(name string) encoding.Encoding {
	name = strings.ToUpper(strings.TrimSpace(name))
	if n, ok := strings.CutPrefix(name, "LDID/"); ok {
		driver, err := strconv.ParseUint(n, 10, 8)
		if err != nil {
			return nil
		}
		if driver == 0 || driver == 0x57 {
			return charmap.Windows1252
		}
		return codePages[driverPages[byte(driver)]]
	}
	bare := strings.NewReplacer("-", "", "_", "", " ", "", ":", "").Replace(name)
	switch bare {
	case "UTF8":
		return unicode.UTF8
	case "SJIS":
		return japanese.ShiftJIS
	}
	for _, prefix := range []string{"WINDOWS", "ANSI", "OEM", "IBM", "CP", "MS", "ISO"} {
		bare = strings.TrimPrefix(bare, prefix)
	}
	if part, ok := strings.CutPrefix(bare, "8859"); ok {
		return partsOf8859[part]
	}
	if n, err := strconv.Atoi(bare); err == nil {
		return codePages[n]
	}
	enc, err := ianaindex.IANA.Encoding(name)
	if err != nil || enc == nil || !extendsASCII(enc) {
		return nil
	}
	return enc
}

// extendsASCII says whether ASCII text means itself, as it must in a table, even
// where some encodings shift to other characters.
func extendsASCII(enc encoding.Encoding) bool {
	const text = " 09AZaz ~{ \x1b(B"
	got, err := enc.NewDecoder().String(text)
	return err == nil && got == text
}

// value makes the true value of a field's bytes: "" if they stand for null.
func (c *charset) value(raw string, f Field) (string, oddity, error) {
	v, _, _ := strings.Cut(raw, "\x00")
	full := len(v) == f.Length
	v = trim(v)
	if isNull(v, f.Type) {
		return "", none, nil
	}
	return c.decode(v, full)
}

// trim removes blanks, tabs and line ends on both sides.
func trim(v string) string {
	for v != "" && isBlank(v[0]) {
		v = v[1:]
	}
	for v != "" && isBlank(v[len(v)-1]) {
		v = v[:len(v)-1]
	}
	return v
}

func isBlank(b byte) bool { return b == ' ' || b == '\t' || b == '\r' || b == '\n' }

// isNull knows the fillings that stand for null, besides blanks.
func isNull(v string, kind byte) bool {
	switch kind {
	case 'N', 'F':
		return strings.Trim(v, "*") == ""
	case 'D':
		return strings.Trim(v, "0") == ""
	case 'L':
		return strings.Trim(v, "?") == ""
	}
	return v == ""
}

func isASCII(v string) bool {
	for i := range len(v) {
		if v[i] >= utf8.RuneSelf {
			return false
		}
	}
	return true
}

// decode decodes text. Full says that it fills its column, so that its last
// character may be cut.
func (c *charset) decode(v string, full bool) (string, oddity, error) {
	if isASCII(v) {
		return v, none, nil
	}
	if c.enc == nil {
		return "", none, fmt.Errorf("%q is not ASCII, and its encoding %q is not known", v, c.name)
	}
	if !c.declared && utf8.ValidString(v) {
		return v, undeclared, nil
	}
	if c.enc == unicode.UTF8 {
		if utf8.ValidString(v) {
			return v, none, nil
		}
		if whole := withoutCutRune(v); full && utf8.ValidString(whole) {
			return trim(whole), cutText, nil
		}
		return strings.ToValidUTF8(v, "\uFFFD"), badText, nil
	}
	text, err := c.decoder.String(v)
	switch {
	case err != nil || strings.Contains(text, "\uFFFD"):
		return strings.ToValidUTF8(text, "\uFFFD"), badText, nil
	case !c.declared:
		return text, undeclared, nil
	}
	return text, none, nil
}

// withoutCutRune drops the bytes of a character whose end is missing.
func withoutCutRune(v string) string {
	for i := len(v) - 1; i >= 0 && i >= len(v)-utf8.UTFMax; i-- {
		if utf8.RuneStart(v[i]) {
			if !utf8.FullRuneInString(v[i:]) {
				return v[:i]
			}
			break
		}
	}
	return v
}
