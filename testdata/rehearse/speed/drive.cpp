// Runs the model for the number of phases given and prints where it stands.
#include "Vmillrace.h"
#include "verilated.h"
#include <cstdio>
#include <cstdlib>

int main(int argc, char** argv) {
    if (argc != 2) return 2;
    const long phases = atol(argv[1]);
    VerilatedContext context;
    Vmillrace model(&context);
    model.clk = 0;
    model.eval();
    for (long i = 0; i < phases; i++) {
        model.clk = 1;
        model.eval();
        model.clk = 0;
        model.eval();
    }
    printf("acc %d pc %d phase %d\n", model.acc_out, model.pc_out, model.phase_out + 1);
}
