// hand: the network as switches, sha256 0123456789ab
// by hand
// Style plain: 4 relays, 9 diodes, 32 wires. In: the opcode from its top bit
// down, the flags, the phase wires; 1 = carries the feed. Out: the lines; 1 =
// active, for a low line: its wire carries nothing.
// For a simulator. tranif1 = make contact, tranif0 = break contact, with their
// two ends and the relay; bufif1 = diode, whose second end follows the first.
// Each net is pulled down, nets are named after their first terminal. K1_2m is
// the make contact of pole 2 of K1.
module hand_network (opcode_0, zero, phase_1, phase_2, phase_3, phase_4, acc_g,
        buf_, ram_l, rst);
    input opcode_0, zero, phase_1, phase_2, phase_3, phase_4;
    output acc_g, buf_, ram_l, rst;

// what comes in
    wire at_K1_31;
    pulldown (at_K1_31);
    buf feed (at_K1_31, 1'b1);
    wire at_D1_A;
    pulldown (at_D1_A);
    bufif1 phase_1_in (at_D1_A, 1'b1, phase_1);
    wire at_K1_11;
    pulldown (at_K1_11);
    bufif1 phase_2_in (at_K1_11, 1'b1, phase_2);
    wire at_K1_21;
    pulldown (at_K1_21);
    bufif1 phase_3_in (at_K1_21, 1'b1, phase_3);
    wire at_K4_11;
    pulldown (at_K4_11);
    bufif1 phase_4_in (at_K4_11, 1'b1, phase_4);
    wire at_K1_A1;
    pulldown (at_K1_A1);
    bufif1 opcode_0_in (at_K1_A1, 1'b1, opcode_0);
    wire at_K2_A1;
    pulldown (at_K2_A1);
    bufif1 zero_in (at_K2_A1, 1'b1, zero);
// relays
    wire K1;
    assign K1 = at_K1_A1;
    wire K2;
    assign K2 = at_K2_A1;
    wire K3;
    wire at_K3_A1;
    pulldown (at_K3_A1);
    assign K3 = at_K3_A1;
    wire K4;
    wire at_K1_34;
    pulldown (at_K1_34);
    assign K4 = at_K1_34;
// contacts
    wire at_K1_12;
    pulldown (at_K1_12);
    tranif0 K1_1b (at_K1_11, at_K1_12, K1);
    wire at_K1_14;
    pulldown (at_K1_14);
    tranif1 K1_1m (at_K1_11, at_K1_14, K1);
    wire at_K1_22;
    pulldown (at_K1_22);
    tranif0 K1_2b (at_K1_21, at_K1_22, K1);
    wire at_K1_24;
    pulldown (at_K1_24);
    tranif1 K1_2m (at_K1_21, at_K1_24, K1);
    tranif1 K1_3m (at_K1_31, at_K1_34, K1);
    wire at_K2_12;
    pulldown (at_K2_12);
    tranif0 K2_1b (at_K1_14, at_K2_12, K2);
    wire at_K2_14;
    pulldown (at_K2_14);
    tranif1 K2_1m (at_K1_14, at_K2_14, K2);
    wire at_K2_22;
    pulldown (at_K2_22);
    tranif0 K2_2b (at_K1_24, at_K2_22, K2);
    wire at_K3_12;
    pulldown (at_K3_12);
    tranif0 K3_1b (at_K1_31, at_K3_12, K3);
    wire at_K4_12;
    pulldown (at_K4_12);
    tranif0 K4_1b (at_K4_11, at_K4_12, K4);
// diodes
    wire at_D1_K;
    pulldown (at_D1_K);
    bufif1 D1 (at_D1_K, 1'b1, at_D1_A);
    bufif1 D2 (at_D1_K, 1'b1, at_K1_12);
    wire at_D3_K;
    pulldown (at_D3_K);
    bufif1 D3 (at_D3_K, 1'b1, at_K2_14);
    bufif1 D4 (at_K3_A1, 1'b1, at_K2_12);
    bufif1 D5 (at_K3_A1, 1'b1, at_K1_22);
    bufif1 D6 (at_D3_K, 1'b1, at_K2_22);
    bufif1 D7 (at_D3_K, 1'b1, at_K4_12);
    wire at_K1_A2;
    pulldown (at_K1_A2);
    bufif1 D9 (at_K3_A1, 1'b1, at_K1_A2);
// what goes out
    assign acc_g = at_D1_K;
    assign buf_ = at_K1_12;
    assign ram_l = ~at_K3_12;
    assign rst = at_D3_K;
endmodule
