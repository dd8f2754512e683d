package words

import "fmt"

func ExampleCount() {
	fmt.Println(Count(1, "record"), Count(0, "record"), Count(2, "stretch", "stretches"))
	// Output: 1 record 0 records 2 stretches
}
