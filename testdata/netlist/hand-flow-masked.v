// hand: the network as sums in the order of flow, sha256 0123456789ab
// by hand
// Style plain: 4 relays, 9 diodes, 32 wires. In: the opcode from its top bit
// down, the flags, the phase wires; 1 = carries the feed. Out: the lines; 1 =
// active, for a low line: its wire carries nothing.
// One sum a net, named after its first terminal: the nets that current comes
// from, each with the relay whose contact lies between (~ for a break contact);
// a net alone comes through a diode. No assignment depends on a later one. Ways
// that no state opens, and those that lead to no line or coil, are left out.
// Masked for a comparison: where occurs is 0 every line is 0.
// Left out altogether: D9
module hand_network (opcode_0, zero, phase_1, phase_2, phase_3, phase_4, acc_g,
        buf_, ram_l, rst, occurs);
    input opcode_0, zero, phase_1, phase_2, phase_3, phase_4;
    output acc_g, buf_, ram_l, rst, occurs;

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
    wire acc_g_unmasked;
    assign acc_g_unmasked = at_D1_K;
    wire buf__unmasked;
    assign buf__unmasked = at_K1_12;
    wire ram_l_unmasked;
    assign ram_l_unmasked = ~at_K3_12;
    wire rst_unmasked;
    assign rst_unmasked = at_D3_K;
// states that occur
    wire from_3;
    assign from_3 = phase_3 | phase_4;
    wire two_3;
    assign two_3 = phase_3 & phase_4;
    wire from_2;
    assign from_2 = phase_2 | from_3;
    wire two_2;
    assign two_2 = two_3 | phase_2 & from_3;
    wire from_1;
    assign from_1 = phase_1 | from_2;
    wire two_1;
    assign two_1 = two_2 | phase_1 & from_2;
    wire free_1;
    assign free_1 = from_3 & zero & opcode_0;
    wire free_2;
    assign free_2 = phase_4 & ~zero & opcode_0;
    wire cannot_occur;
    assign cannot_occur = two_1 | free_1 | free_2;
    assign occurs = from_1 & ~cannot_occur;
// lines where the state occurs
    assign acc_g = acc_g_unmasked & occurs;
    assign buf_ = buf__unmasked & occurs;
    assign ram_l = ram_l_unmasked & occurs;
    assign rst = rst_unmasked & occurs;
endmodule
