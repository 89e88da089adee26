package reference
import ("testing";"math/rand/v2";"fmt";"sort";"time")
func TestTry(t *testing.T){
 sound:=0; why:=map[string]int{}; feats:=map[string]int{}; var worst time.Duration; start:=time.Now()
 for seed:=range uint64(2000) {
  text:=Random(rand.New(rand.NewPCG(seed,1)))
  src,said:=load(text)
  if said!="" { fmt.Println(said); fmt.Println(text); t.Fatal() }
  t0:=time.Now()
  _,err:=Evaluate(src)
  if d:=time.Since(t0); d>worst { worst=d }
  if err==nil { sound++; for f:=range Features(src) { feats[f]++ } } else { s:=err.Error(); if len(s)>40 {s=s[:40]}; why[s]++ }
 }
 fmt.Println(sound, time.Since(start), worst)
 var k []string; for w:=range why { k=append(k,w)}; sort.Slice(k,func(i,j int)bool{return why[k[i]]>why[k[j]]})
 for i,w:=range k { if i<40 {fmt.Println(why[w],w)} }
 k=nil; for w:=range feats { k=append(k,w)}; sort.Strings(k); for _,w:=range k { fmt.Println(feats[w],w)}
}
