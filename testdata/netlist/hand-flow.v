// hand: the network as sums in the order of flow, sha256 0123456789ab
// by hand
// Style plain: 4 relays, 9 diodes, 32 wires. In: the opcode from its top bit
// down, the flags, the phase wires; 1 = carries the feed. Out: the lines; 1 =
// active, for a low line: its wire carries nothing.
// One sum a net, named after its first terminal: the nets that current comes
// from, each with the relay whose contact lies between (~ for a break contact);
// a net alone comes through a diode. No assignment depends on a later one. Ways
// that no state opens, and those that lead to no line or coil, are left out.
// Left out altogether: D9
module hand_network (opcode_0, zero, phase_1, phase_2, phase_3, phase_4, acc_g,
        buf_, ram_l, rst);
    input opcode_0, zero, phase_1, phase_2, phase_3, phase_4;
    output acc_g, buf_, ram_l, rst;

    wire K1;
    assign K1 = opcode_0;
    wire at_K1_12;
    assign at_K1_12 = phase_2 & ~K1;
    wire at_K1_34;
    assign at_K1_34 = K1;
    wire K4;
    assign K4 = at_K1_34;
    wire K2;
    assign K2 = zero;
    wire at_K1_14;
    assign at_K1_14 = phase_2 & K1;
    wire at_K2_12;
    assign at_K2_12 = at_K1_14 & ~K2;
    wire at_K1_22;
    assign at_K1_22 = phase_3 & ~K1;
    wire at_K3_A1;
    assign at_K3_A1 = at_K2_12 | at_K1_22;
    wire K3;
    assign K3 = at_K3_A1;
    wire at_K3_12;
    assign at_K3_12 = ~K3;
    wire at_D1_K;
    assign at_D1_K = phase_1 | at_K1_12;
    wire at_K2_14;
    assign at_K2_14 = at_K1_14 & K2;
    wire at_K1_24;
    assign at_K1_24 = phase_3 & K1;
    wire at_K2_22;
    assign at_K2_22 = at_K1_24 & ~K2;
    wire at_K4_12;
    assign at_K4_12 = phase_4 & ~K4;
    wire at_D3_K;
    assign at_D3_K = at_K2_14 | at_K2_22 | at_K4_12;
    assign acc_g = at_D1_K;
    assign buf_ = at_K1_12;
    assign ram_l = ~at_K3_12;
    assign rst = at_D3_K;
endmodule
