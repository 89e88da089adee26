// quern: control store as sums of products, sha256 2d441cf535f1
// In: the opcode from its top bit down, the flags, the phase wires. Out: 1 =
// the line is active, also if it is a low one. Where occurs is 0 the state
// cannot occur: no phase wire or several, a free opcode, a phase after a
// restart.
// Masked for a comparison: where occurs is 0 every line is 0.
module quern_store (opcode_3, opcode_2, opcode_1, opcode_0, phase_1, phase_2,
        phase_3, phase_4, phase_5, phase_6, phase_7, phase_8, phase_9,
        phase_10, phase_11, phase_12, drum_g, ir_l, pc_l, acc_g, acc_l, occurs);
    input opcode_3, opcode_2, opcode_1, opcode_0, phase_1, phase_2, phase_3,
        phase_4, phase_5, phase_6, phase_7, phase_8, phase_9, phase_10,
        phase_11, phase_12;
    output drum_g, ir_l, pc_l, acc_g, acc_l, occurs;

// fetch
    wire row_1;
    assign row_1 = phase_1;
    wire row_2;
    assign row_2 = phase_2;
// take
    wire row_3;
    assign row_3 = phase_3 & ~opcode_3 & ~opcode_2 & ~opcode_1 & opcode_0;
// turn
    wire row_4;
    assign row_4 = phase_3 & ~opcode_3 & ~opcode_2 & opcode_1 & ~opcode_0;
    wire row_5;
    assign row_5 = phase_7 & ~opcode_3 & ~opcode_2 & opcode_1 & ~opcode_0;
// lines
    wire drum_g_unmasked;
    assign drum_g_unmasked = row_1 | row_3;
    wire ir_l_unmasked;
    assign ir_l_unmasked = row_1;
    wire pc_l_unmasked;
    assign pc_l_unmasked = row_2;
    wire acc_g_unmasked;
    assign acc_g_unmasked = row_4 | row_5;
    wire acc_l_unmasked;
    assign acc_l_unmasked = row_3 | row_4 | row_5;
// states that occur
    wire from_11;
    assign from_11 = phase_11 | phase_12;
    wire two_11;
    assign two_11 = phase_11 & phase_12;
    wire from_10;
    assign from_10 = phase_10 | from_11;
    wire two_10;
    assign two_10 = two_11 | phase_10 & from_11;
    wire from_9;
    assign from_9 = phase_9 | from_10;
    wire two_9;
    assign two_9 = two_10 | phase_9 & from_10;
    wire from_8;
    assign from_8 = phase_8 | from_9;
    wire two_8;
    assign two_8 = two_9 | phase_8 & from_9;
    wire from_7;
    assign from_7 = phase_7 | from_8;
    wire two_7;
    assign two_7 = two_8 | phase_7 & from_8;
    wire from_6;
    assign from_6 = phase_6 | from_7;
    wire two_6;
    assign two_6 = two_7 | phase_6 & from_7;
    wire from_5;
    assign from_5 = phase_5 | from_6;
    wire two_5;
    assign two_5 = two_6 | phase_5 & from_6;
    wire from_4;
    assign from_4 = phase_4 | from_5;
    wire two_4;
    assign two_4 = two_5 | phase_4 & from_5;
    wire from_3;
    assign from_3 = phase_3 | from_4;
    wire two_3;
    assign two_3 = two_4 | phase_3 & from_4;
    wire from_2;
    assign from_2 = phase_2 | from_3;
    wire two_2;
    assign two_2 = two_3 | phase_2 & from_3;
    wire from_1;
    assign from_1 = phase_1 | from_2;
    wire two_1;
    assign two_1 = two_2 | phase_1 & from_2;
    wire cannot_occur;
    assign cannot_occur = two_1;
    assign occurs = from_1 & ~cannot_occur;
// lines where the state occurs
    assign drum_g = drum_g_unmasked & occurs;
    assign ir_l = ir_l_unmasked & occurs;
    assign pc_l = pc_l_unmasked & occurs;
    assign acc_g = acc_g_unmasked & occurs;
    assign acc_l = acc_l_unmasked & occurs;
endmodule
