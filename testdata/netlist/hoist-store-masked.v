// hoist: control store as sums of products, sha256 22b2a966029b
// Sack hoist, an invented machine that uses what Millrace does not
// In: the opcode from its top bit down, the flags, the phase wires. Out: 1 =
// the line is active, also if it is a low one. Where occurs is 0 the state
// cannot occur: no phase wire or several, a free opcode, a phase after a
// restart.
// Masked for a comparison: where occurs is 0 every line is 0.
module hoist_store (opcode_3, opcode_2, opcode_1, opcode_0, full, top, phase_1,
        phase_2, phase_3, phase_4, phase_5, phase_6, phase_7, phase_8, phase_9,
        phase_10, phase_11, phase_12, phase_13, phase_14, phase_15, phase_16,
        phase_17, phase_18, phase_19, phase_20, phase_21, phase_22, phase_23,
        phase_24, acc_g, aux_g, keys_g, join_g, acc_l, full_l, aux_l, cage_l,
        top_l, sink_set, pc_g, pc_l, nxt_g, nxt_l, drum_g, ir_l, lamp, rst,
        hlt, occurs);
    input opcode_3, opcode_2, opcode_1, opcode_0, full, top, phase_1, phase_2,
        phase_3, phase_4, phase_5, phase_6, phase_7, phase_8, phase_9,
        phase_10, phase_11, phase_12, phase_13, phase_14, phase_15, phase_16,
        phase_17, phase_18, phase_19, phase_20, phase_21, phase_22, phase_23,
        phase_24;
    output acc_g, aux_g, keys_g, join_g, acc_l, full_l, aux_l, cage_l, top_l,
        sink_set, pc_g, pc_l, nxt_g, nxt_l, drum_g, ir_l, lamp, rst, hlt,
        occurs;

// fetch
    wire row_1;
    assign row_1 = phase_1;
    wire row_2;
    assign row_2 = phase_2;
    wire row_3;
    assign row_3 = phase_3;
    wire row_4;
    assign row_4 = phase_4;
    wire row_5;
    assign row_5 = phase_5;
    wire row_6;
    assign row_6 = phase_7;
    wire row_7;
    assign row_7 = phase_8;
    wire row_8;
    assign row_8 = phase_9;
// stop
    wire row_9;
    assign row_9 = phase_9 & ~opcode_3 & ~opcode_2 & ~opcode_1 & ~opcode_0;
    wire row_10;
    assign row_10 = phase_11 & ~opcode_3 & ~opcode_2 & ~opcode_1 & ~opcode_0;
// lift s=slow
    wire row_11;
    assign row_11 = phase_7 & ~opcode_3 & opcode_2 & ~opcode_1 & ~opcode_0;
    wire row_12;
    assign row_12 = phase_8 & ~opcode_3 & opcode_2 & ~opcode_1 & ~opcode_0;
    wire row_13;
    assign row_13 = phase_9 & ~opcode_3 & opcode_2 & ~opcode_1 & ~opcode_0;
    wire row_14;
    assign row_14 = phase_10 & ~opcode_3 & opcode_2 & ~opcode_1 & ~opcode_0;
    wire row_15;
    assign row_15 = phase_11 & ~opcode_3 & opcode_2 & ~opcode_1 & ~opcode_0;
    wire row_16;
    assign row_16 = phase_12 & ~opcode_3 & opcode_2 & ~opcode_1 & ~opcode_0;
    wire row_17;
    assign row_17 = phase_13 & ~opcode_3 & opcode_2 & ~opcode_1 & ~opcode_0;
    wire row_18;
    assign row_18 = phase_14 & ~opcode_3 & opcode_2 & ~opcode_1 & ~opcode_0;
    wire row_19;
    assign row_19 = phase_15 & ~opcode_3 & opcode_2 & ~opcode_1 & ~opcode_0;
    wire row_20;
    assign row_20 = phase_16 & ~opcode_3 & opcode_2 & ~opcode_1 & ~opcode_0;
    wire row_21;
    assign row_21 = phase_17 & ~opcode_3 & opcode_2 & ~opcode_1 & ~opcode_0;
    wire row_22;
    assign row_22 = phase_18 & ~opcode_3 & opcode_2 & ~opcode_1 & ~opcode_0;
    wire row_23;
    assign row_23 = phase_19 & ~opcode_3 & opcode_2 & ~opcode_1 & ~opcode_0;
    wire row_24;
    assign row_24 = phase_20 & ~opcode_3 & opcode_2 & ~opcode_1 & ~opcode_0;
    wire row_25;
    assign row_25 = phase_21 & ~opcode_3 & opcode_2 & ~opcode_1 & ~opcode_0;
    wire row_26;
    assign row_26 = phase_23 & ~opcode_3 & opcode_2 & ~opcode_1 & ~opcode_0;
    wire row_27;
    assign row_27 = phase_24 & ~opcode_3 & opcode_2 & ~opcode_1 & ~opcode_0;
// lift s=half
    wire row_28;
    assign row_28 = phase_7 & ~opcode_3 & opcode_2 & ~opcode_1 & opcode_0;
    wire row_29;
    assign row_29 = phase_8 & ~opcode_3 & opcode_2 & ~opcode_1 & opcode_0;
    wire row_30;
    assign row_30 = phase_9 & ~opcode_3 & opcode_2 & ~opcode_1 & opcode_0;
    wire row_31;
    assign row_31 = phase_10 & ~opcode_3 & opcode_2 & ~opcode_1 & opcode_0;
    wire row_32;
    assign row_32 = phase_11 & ~opcode_3 & opcode_2 & ~opcode_1 & opcode_0;
    wire row_33;
    assign row_33 = phase_12 & ~opcode_3 & opcode_2 & ~opcode_1 & opcode_0;
    wire row_34;
    assign row_34 = phase_13 & ~opcode_3 & opcode_2 & ~opcode_1 & opcode_0;
    wire row_35;
    assign row_35 = phase_14 & ~opcode_3 & opcode_2 & ~opcode_1 & opcode_0;
    wire row_36;
    assign row_36 = phase_15 & ~opcode_3 & opcode_2 & ~opcode_1 & opcode_0;
    wire row_37;
    assign row_37 = phase_16 & ~opcode_3 & opcode_2 & ~opcode_1 & opcode_0;
    wire row_38;
    assign row_38 = phase_17 & ~opcode_3 & opcode_2 & ~opcode_1 & opcode_0;
    wire row_39;
    assign row_39 = phase_18 & ~opcode_3 & opcode_2 & ~opcode_1 & opcode_0;
    wire row_40;
    assign row_40 = phase_19 & ~opcode_3 & opcode_2 & ~opcode_1 & opcode_0;
    wire row_41;
    assign row_41 = phase_20 & ~opcode_3 & opcode_2 & ~opcode_1 & opcode_0;
    wire row_42;
    assign row_42 = phase_21 & ~opcode_3 & opcode_2 & ~opcode_1 & opcode_0;
    wire row_43;
    assign row_43 = phase_23 & ~opcode_3 & opcode_2 & ~opcode_1 & opcode_0;
    wire row_44;
    assign row_44 = phase_24 & ~opcode_3 & opcode_2 & ~opcode_1 & opcode_0;
// lift s=full
    wire row_45;
    assign row_45 = phase_7 & ~opcode_3 & opcode_2 & opcode_1 & ~opcode_0;
    wire row_46;
    assign row_46 = phase_8 & ~opcode_3 & opcode_2 & opcode_1 & ~opcode_0;
    wire row_47;
    assign row_47 = phase_9 & ~opcode_3 & opcode_2 & opcode_1 & ~opcode_0;
    wire row_48;
    assign row_48 = phase_10 & ~opcode_3 & opcode_2 & opcode_1 & ~opcode_0;
    wire row_49;
    assign row_49 = phase_11 & ~opcode_3 & opcode_2 & opcode_1 & ~opcode_0;
    wire row_50;
    assign row_50 = phase_12 & ~opcode_3 & opcode_2 & opcode_1 & ~opcode_0;
    wire row_51;
    assign row_51 = phase_13 & ~opcode_3 & opcode_2 & opcode_1 & ~opcode_0;
    wire row_52;
    assign row_52 = phase_14 & ~opcode_3 & opcode_2 & opcode_1 & ~opcode_0;
    wire row_53;
    assign row_53 = phase_15 & ~opcode_3 & opcode_2 & opcode_1 & ~opcode_0;
    wire row_54;
    assign row_54 = phase_16 & ~opcode_3 & opcode_2 & opcode_1 & ~opcode_0;
    wire row_55;
    assign row_55 = phase_17 & ~opcode_3 & opcode_2 & opcode_1 & ~opcode_0;
    wire row_56;
    assign row_56 = phase_18 & ~opcode_3 & opcode_2 & opcode_1 & ~opcode_0;
    wire row_57;
    assign row_57 = phase_19 & ~opcode_3 & opcode_2 & opcode_1 & ~opcode_0;
    wire row_58;
    assign row_58 = phase_20 & ~opcode_3 & opcode_2 & opcode_1 & ~opcode_0;
    wire row_59;
    assign row_59 = phase_21 & ~opcode_3 & opcode_2 & opcode_1 & ~opcode_0;
    wire row_60;
    assign row_60 = phase_23 & ~opcode_3 & opcode_2 & opcode_1 & ~opcode_0;
    wire row_61;
    assign row_61 = phase_24 & ~opcode_3 & opcode_2 & opcode_1 & ~opcode_0;
// both
    wire row_62;
    assign row_62 = phase_8 & ~opcode_3 & ~opcode_2 & opcode_1 & ~opcode_0;
    wire row_63;
    assign row_63 = phase_9 & ~opcode_3 & ~opcode_2 & opcode_1 & ~opcode_0;
    wire row_64;
    assign row_64 = phase_10 & ~opcode_3 & ~opcode_2 & opcode_1 & ~opcode_0;
    wire row_65;
    assign row_65 = phase_11 & ~opcode_3 & ~opcode_2 & opcode_1 & ~opcode_0;
    wire row_66;
    assign row_66 = phase_12 & ~opcode_3 & ~opcode_2 & opcode_1 & ~opcode_0;
    wire row_67;
    assign row_67 = phase_13 & ~opcode_3 & ~opcode_2 & opcode_1 & ~opcode_0;
    wire row_68;
    assign row_68 = phase_14 & ~opcode_3 & ~opcode_2 & opcode_1 & ~opcode_0;
    wire row_69;
    assign row_69 = phase_15 & ~opcode_3 & ~opcode_2 & opcode_1 & ~opcode_0;
    wire row_70;
    assign row_70 = phase_16 & ~opcode_3 & ~opcode_2 & opcode_1 & ~opcode_0;
// sort
    wire row_71;
    assign row_71 = phase_8 & ~full & ~opcode_3 & ~opcode_2 & opcode_1 &
        opcode_0;
    wire row_72;
    assign row_72 = phase_8 & full & ~opcode_3 & ~opcode_2 & opcode_1 &
        opcode_0;
    wire row_73;
    assign row_73 = phase_9 & ~full & ~opcode_3 & ~opcode_2 & opcode_1 &
        opcode_0;
    wire row_74;
    assign row_74 = phase_9 & full & ~opcode_3 & ~opcode_2 & opcode_1 &
        opcode_0;
    wire row_75;
    assign row_75 = phase_10 & ~full & ~opcode_3 & ~opcode_2 & opcode_1 &
        opcode_0;
    wire row_76;
    assign row_76 = phase_10 & ~top & full & ~opcode_3 & ~opcode_2 & opcode_1 &
        opcode_0;
    wire row_77;
    assign row_77 = phase_10 & top & full & ~opcode_3 & ~opcode_2 & opcode_1 &
        opcode_0;
    wire row_78;
    assign row_78 = phase_11 & ~full & ~opcode_3 & ~opcode_2 & opcode_1 &
        opcode_0;
    wire row_79;
    assign row_79 = phase_11 & top & full & ~opcode_3 & ~opcode_2 & opcode_1 &
        opcode_0;
    wire row_80;
    assign row_80 = phase_15 & ~top & full & ~opcode_3 & ~opcode_2 & opcode_1 &
        opcode_0;
// undefined
    wire row_81;
    assign row_81 = phase_9 & ~opcode_3 & ~opcode_2 & ~opcode_1 & opcode_0;
    wire row_82;
    assign row_82 = phase_11 & ~opcode_3 & ~opcode_2 & ~opcode_1 & opcode_0;
    wire row_83;
    assign row_83 = phase_9 & ~opcode_3 & opcode_2 & opcode_1 & opcode_0;
    wire row_84;
    assign row_84 = phase_11 & ~opcode_3 & opcode_2 & opcode_1 & opcode_0;
    wire row_85;
    assign row_85 = phase_9 & opcode_3;
    wire row_86;
    assign row_86 = phase_11 & opcode_3;
// lines
    wire acc_g_unmasked;
    assign acc_g_unmasked = row_19 | row_20 | row_21 | row_22 | row_36 |
        row_37 | row_38 | row_39 | row_53 | row_54 | row_55 | row_56 | row_62 |
        row_63 | row_64;
    wire aux_g_unmasked;
    assign aux_g_unmasked = row_62 | row_63 | row_64 | row_72 | row_74 |
        row_76 | row_77;
    wire keys_g_unmasked;
    assign keys_g_unmasked = row_64 | row_65 | row_66 | row_71 | row_73 |
        row_75;
    wire join_g_unmasked;
    assign join_g_unmasked = row_67 | row_68 | row_69;
    wire acc_l_unmasked;
    assign acc_l_unmasked = row_65 | row_74;
    wire full_l_unmasked;
    assign full_l_unmasked = row_66;
    wire aux_l_unmasked;
    assign aux_l_unmasked = row_68 | row_73;
    wire cage_l_unmasked;
    assign cage_l_unmasked = row_20 | row_21 | row_37 | row_38 | row_54 |
        row_55;
    wire top_l_unmasked;
    assign top_l_unmasked = row_26 | row_43 | row_60;
    wire sink_set_unmasked;
    assign sink_set_unmasked = row_63;
    wire pc_g_unmasked;
    assign pc_g_unmasked = row_1 | row_2 | row_3 | row_4 | row_5 | row_67 |
        row_68 | row_69;
    wire pc_l_unmasked;
    assign pc_l_unmasked = row_7;
    wire nxt_g_unmasked;
    assign nxt_g_unmasked = row_6 | row_7 | row_8;
    wire nxt_l_unmasked;
    assign nxt_l_unmasked = row_4;
    wire drum_g_unmasked;
    assign drum_g_unmasked = row_3 | row_4 | row_5;
    wire ir_l_unmasked;
    assign ir_l_unmasked = row_4;
    wire lamp_unmasked;
    assign lamp_unmasked = row_11 | row_12 | row_13 | row_14 | row_15 |
        row_16 | row_17 | row_18 | row_19 | row_20 | row_21 | row_22 | row_23 |
        row_24 | row_25 | row_28 | row_29 | row_30 | row_31 | row_32 | row_33 |
        row_34 | row_35 | row_36 | row_37 | row_38 | row_39 | row_40 | row_41 |
        row_42 | row_45 | row_46 | row_47 | row_48 | row_49 | row_50 | row_51 |
        row_52 | row_53 | row_54 | row_55 | row_56 | row_57 | row_58 | row_59;
    wire rst_unmasked;
    assign rst_unmasked = row_10 | row_27 | row_44 | row_61 | row_70 | row_78 |
        row_79 | row_80 | row_82 | row_84 | row_86;
    wire hlt_unmasked;
    assign hlt_unmasked = row_9 | row_81 | row_83 | row_85;
// states that occur
    wire from_23;
    assign from_23 = phase_23 | phase_24;
    wire two_23;
    assign two_23 = phase_23 & phase_24;
    wire from_22;
    assign from_22 = phase_22 | from_23;
    wire two_22;
    assign two_22 = two_23 | phase_22 & from_23;
    wire from_21;
    assign from_21 = phase_21 | from_22;
    wire two_21;
    assign two_21 = two_22 | phase_21 & from_22;
    wire from_20;
    assign from_20 = phase_20 | from_21;
    wire two_20;
    assign two_20 = two_21 | phase_20 & from_21;
    wire from_19;
    assign from_19 = phase_19 | from_20;
    wire two_19;
    assign two_19 = two_20 | phase_19 & from_20;
    wire from_18;
    assign from_18 = phase_18 | from_19;
    wire two_18;
    assign two_18 = two_19 | phase_18 & from_19;
    wire from_17;
    assign from_17 = phase_17 | from_18;
    wire two_17;
    assign two_17 = two_18 | phase_17 & from_18;
    wire from_16;
    assign from_16 = phase_16 | from_17;
    wire two_16;
    assign two_16 = two_17 | phase_16 & from_17;
    wire from_15;
    assign from_15 = phase_15 | from_16;
    wire two_15;
    assign two_15 = two_16 | phase_15 & from_16;
    wire from_14;
    assign from_14 = phase_14 | from_15;
    wire two_14;
    assign two_14 = two_15 | phase_14 & from_15;
    wire from_13;
    assign from_13 = phase_13 | from_14;
    wire two_13;
    assign two_13 = two_14 | phase_13 & from_14;
    wire from_12;
    assign from_12 = phase_12 | from_13;
    wire two_12;
    assign two_12 = two_13 | phase_12 & from_13;
    wire from_11;
    assign from_11 = phase_11 | from_12;
    wire two_11;
    assign two_11 = two_12 | phase_11 & from_12;
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
    wire free_1;
    assign free_1 = from_12 & ~opcode_3 & ~opcode_2 & ~opcode_1 & ~opcode_0;
    wire free_2;
    assign free_2 = from_17 & ~opcode_3 & ~opcode_2 & opcode_1 & ~opcode_0;
    wire free_3;
    assign free_3 = from_12 & ~full & ~opcode_3 & ~opcode_2 & opcode_1 &
        opcode_0;
    wire free_4;
    assign free_4 = from_12 & top & full & ~opcode_3 & ~opcode_2 & opcode_1 &
        opcode_0;
    wire free_5;
    assign free_5 = from_16 & ~top & full & ~opcode_3 & ~opcode_2 & opcode_1 &
        opcode_0;
    wire free_6;
    assign free_6 = from_12 & ~opcode_3 & ~opcode_2 & ~opcode_1 & opcode_0;
    wire free_7;
    assign free_7 = from_12 & ~opcode_3 & opcode_2 & opcode_1 & opcode_0;
    wire free_8;
    assign free_8 = from_12 & opcode_3;
    wire cannot_occur;
    assign cannot_occur = two_1 | free_1 | free_2 | free_3 | free_4 | free_5 |
        free_6 | free_7 | free_8;
    assign occurs = from_1 & ~cannot_occur;
// lines where the state occurs
    assign acc_g = acc_g_unmasked & occurs;
    assign aux_g = aux_g_unmasked & occurs;
    assign keys_g = keys_g_unmasked & occurs;
    assign join_g = join_g_unmasked & occurs;
    assign acc_l = acc_l_unmasked & occurs;
    assign full_l = full_l_unmasked & occurs;
    assign aux_l = aux_l_unmasked & occurs;
    assign cage_l = cage_l_unmasked & occurs;
    assign top_l = top_l_unmasked & occurs;
    assign sink_set = sink_set_unmasked & occurs;
    assign pc_g = pc_g_unmasked & occurs;
    assign pc_l = pc_l_unmasked & occurs;
    assign nxt_g = nxt_g_unmasked & occurs;
    assign nxt_l = nxt_l_unmasked & occurs;
    assign drum_g = drum_g_unmasked & occurs;
    assign ir_l = ir_l_unmasked & occurs;
    assign lamp = lamp_unmasked & occurs;
    assign rst = rst_unmasked & occurs;
    assign hlt = hlt_unmasked & occurs;
endmodule
