package study

import (
	"fmt"
	"testing"
)

func TestStudy(t *testing.T) {
	fmt.Println(Run(100, 1))
}
