// Millrace's datapath, written by hand from examples/millrace/millrace.coil as
// a second opinion on encode/rehearse. Nothing of it is generated, and it
// knows the control store only as the memory image that a chip would hold:
// bit i is the i-th line declared, the address is phase - 1, opcode, flags.
//
// The buses are wires with real drivers that let go: two sources that differ
// make an x, which the rehearsal can never show.

`timescale 1ms/1us

module millrace (input strobe);
    reg [25:0] store [0:16383];
    reg [7:0]  ram [0:255];

    reg [3:0] ring;  // phase - 1
    reg [7:0] acc, tmp, res, arg, pc, nxt, lnk, ir, sw, brd;
    reg       zero, carry;

    wire [25:0] on = store[{carry, zero, ir, ring}];

    wire acc_g = on[0];
    wire acc_l = on[1];
    wire tmp_g = on[2];
    wire tmp_l = on[3];
    wire res_l = on[4];
    wire res_g = on[5];
    wire logic_s = on[6];
    wire alt_s = on[7];
    wire shr_l = on[8];
    wire out_l = on[9];
    wire arg_g = on[10];
    wire arg_l = on[11];
    wire ram_g = on[12];
    wire ram_l = on[13];
    wire pc_g = on[14];
    wire pc_l = on[15];
    wire pc_n = on[16];
    wire lnk_l = on[17];
    wire lnk_g = on[18];
    wire nxt_l = on[19];
    wire ir_l = on[20];
    wire sw_g = on[21];
    wire brd_l = on[22];
    // on[23] is the bell: it moves nothing
    wire rst = on[24];
    wire hlt = on[25];

    tri0 [7:0] addr;
    assign addr = pc_g ? pc : 8'bz;
    assign addr = arg_g ? arg : 8'bz;
    assign addr = lnk_g ? lnk : 8'bz;

    tri0 [7:0] data;
    assign data = acc_g ? acc : 8'bz;
    assign data = tmp_g ? tmp : 8'bz;
    assign data = res_g ? res : 8'bz;
    assign data = sw_g ? sw : 8'bz;
    assign data = ram_g ? ram[addr] : 8'bz;

    reg [8:0] alu;  // the top bit is carry out, or one borrowed
    always @*
        case ({logic_s, alt_s})
            2'b00: alu = {1'b0, acc} + {1'b0, tmp};
            2'b01: alu = {1'b0, acc} - {1'b0, tmp};
            2'b10: alu = {1'b0, acc & tmp};
            2'b11: alu = {1'b0, acc ^ tmp};
        endcase

    always @(posedge strobe)
        if (!hlt) begin
            if (acc_l) acc <= data;
            if (tmp_l) tmp <= data;
            if (arg_l) arg <= data;
            if (ir_l) ir <= data;
            if (brd_l) brd <= data;
            if (ram_l) ram[addr] <= data;
            if (pc_l) pc <= addr;
            if (pc_n) pc <= nxt;
            if (lnk_l) lnk <= nxt;
            if (nxt_l) nxt <= addr + 8'd1;
            if (res_l) begin
                res <= alu[7:0];
                zero <= ~|alu[7:0];
                carry <= alu[8];
            end
            if (shr_l) res <= {carry, acc[7:1]};
            if (out_l) carry <= acc[0];
            ring <= (rst || ring == 4'd11) ? 4'd0 : ring + 4'd1;
        end
endmodule

// Runs +count=N programs one after the other, each from its own memory
// (256 words of ram.memh) and its own registers (16 words of state.memh), for
// so many phases as the word of bound.memh says, or until halt. Prints every
// phase before its strobe, and the whole memory after the last one.
module bench;
    reg strobe;
    millrace m (strobe);

    integer count, program, i, left;
    reg halted;
    reg [7:0]  images [0:262143];
    reg [7:0]  states [0:16383];
    reg [31:0] bounds [0:1023];

    initial begin
        if (!$value$plusargs("count=%d", count)) count = 0;
        $readmemh("store.memh", m.store);
        $readmemh("ram.memh", images, 0, 256 * count - 1);
        $readmemh("state.memh", states, 0, 16 * count - 1);
        $readmemh("bound.memh", bounds, 0, count - 1);
        strobe = 0;
        for (program = 0; program < count; program = program + 1) begin
            for (i = 0; i < 256; i = i + 1) m.ram[i] = images[256 * program + i];
            i = 16 * program;
            m.acc = states[i];
            m.tmp = states[i + 1];
            m.res = states[i + 2];
            m.arg = states[i + 3];
            m.pc = states[i + 4];
            m.nxt = states[i + 5];
            m.lnk = states[i + 6];
            m.ir = states[i + 7];
            m.sw = states[i + 8];
            m.brd = states[i + 9];
            m.zero = states[i + 10];
            m.carry = states[i + 11];
            m.ring = 0;
            left = bounds[program];
            halted = 0;
            while (left > 0 && !halted) begin
                #19 $display("%0d %0d on %h acc %h tmp %h res %h arg %h pc %h nxt %h lnk %h ir %h sw %h brd %h zero %b carry %b data %h addr %h",
                    program, m.ring + 5'd1, m.on, m.acc, m.tmp, m.res, m.arg, m.pc, m.nxt, m.lnk, m.ir, m.sw, m.brd, m.zero, m.carry, m.data, m.addr);
                halted = m.hlt;
                strobe = 1;
                #1 strobe = 0;
                left = left - 1;
            end
            for (i = 0; i < 256; i = i + 1) $write("%h", m.ram[i]);
            $write("\n");
        end
        $finish(0);
    end
endmodule
